"""The pages and the JSON interface: what a browser shows; no rule of the trade is in here."""

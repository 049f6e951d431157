"""A frozen result becomes documents: what is said (`contents`), then PDF and HTML of it."""

"""The steps from one shape of the tables to the next: numbered, forward only."""

"""What is kept: SQL tables, their migrations, and the functions that read and write them.

SQLite by default, PostgreSQL by URL; the same code for both. Readings are appended and never
altered: a correction is a new row that points at the one it replaces.
"""

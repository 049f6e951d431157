"""Curves of sensors as published: one TOML file each, checked against its own examples."""

"""What is known of sensor circuits: one TOML file a family; loader, checker, pictures."""

"""What a captured signal is and whether it is in order, in words that a technician acts on."""

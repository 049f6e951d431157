"""The command line: reads what was asked, calls a service, shows the answer."""

"""cli: one file a command. Arguments in, exit status out. Nothing imports this package."""

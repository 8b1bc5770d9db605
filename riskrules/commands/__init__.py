"""The commands: thin over the library, a module or two for each group."""

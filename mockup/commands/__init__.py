"""The commands, one module each; each imports what it needs when it runs."""

"""Floor 5: the bench page, a local page on which a maker tries finishes by eye."""

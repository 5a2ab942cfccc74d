"""Golden pictures of the built-in scenes. ``python -m tests.golden`` draws them anew: look at each before you keep it."""

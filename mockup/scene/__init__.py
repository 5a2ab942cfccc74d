"""The scene file and the libraries: a maker's TOML to frozen, checked values."""

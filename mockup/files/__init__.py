"""Files at the edge: photographs in, pictures out, each whole or not at all."""

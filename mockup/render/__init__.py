"""From a scene to a picture."""

"""From a photograph of a real board to reflectance in mm: plane, light and camera taken out."""

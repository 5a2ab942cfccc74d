"""Outlines: drawings in mm to closed curves, to coverage, to distance from the edge."""

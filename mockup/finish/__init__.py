"""What stain, sand back, coats, burst and sheen do to wood."""

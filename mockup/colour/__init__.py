"""Every matrix, transfer curve and white in one place."""

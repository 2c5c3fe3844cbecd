"""From a controller's bytes to an outing's session on disk."""

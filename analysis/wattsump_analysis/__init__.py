"""From an outing's session to watts, a verdict and a report."""

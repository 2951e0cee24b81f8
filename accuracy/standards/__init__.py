"""Standards as cited data (`library`, the TOML files), and the only place that sets a verdict (`judge`)."""

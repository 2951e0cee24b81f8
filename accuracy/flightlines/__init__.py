"""Flight line against flight line: agreement, precision, density and gaps of a cloud, without checkpoints."""

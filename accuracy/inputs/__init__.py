"""What people hand in: tables of checkpoints, of measured positions, and of pairs of a local grid."""

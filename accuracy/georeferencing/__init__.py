"""What coordinates refer to, whether two sides agree, and the explicit way from one to the other."""

"""What the area `desk` is made of."""

"""What the area `wire` is made of."""

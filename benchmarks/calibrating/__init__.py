"""What the area `calibrate` is made of."""

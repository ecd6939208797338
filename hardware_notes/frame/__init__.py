"""What follows from the frame's dimensions: heights, clearances, forces, how much it gives. Numbers only, no solids."""

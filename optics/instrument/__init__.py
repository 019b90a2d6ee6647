"""What is seen through the focimeter or in the hand, and what is made of readings."""

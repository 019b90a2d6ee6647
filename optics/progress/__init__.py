"""What a learner has done, in a small file of their own."""

"""What a job should cost and what it is worth: the floor under a price, and the next quote."""

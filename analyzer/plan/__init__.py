"""A trial before it is made: which zones on which boards, how many of them, when, how much of each, and labels."""

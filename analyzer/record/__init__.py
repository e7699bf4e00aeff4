"""The record: all measured jobs, found again, compared, and packed to be kept."""

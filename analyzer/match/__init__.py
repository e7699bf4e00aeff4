"""What has to change to reach the target: direction, dilution, a mix of the tried stains, the colour under the coat."""

"""Operating points near a base case: few branches changed, few others that follow."""

"""What people decide over a draft. Pure: no input or output, no clock."""

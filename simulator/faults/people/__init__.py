"""What people do that they should not."""

"""What the finished surface must do, and whether it does."""

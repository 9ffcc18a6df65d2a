"""From the finished surface to digging: volumes and staff readings."""

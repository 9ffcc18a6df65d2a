"""From staff readings to reduced levels."""

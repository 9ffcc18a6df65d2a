"""Planes, triangulated ground and finished surfaces."""

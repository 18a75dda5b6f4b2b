"""Flows as optical path fields, each with a documented profile."""

"""Builds arm rigs and proves that they hold."""

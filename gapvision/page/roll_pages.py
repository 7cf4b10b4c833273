"""Photographs of many joints."""

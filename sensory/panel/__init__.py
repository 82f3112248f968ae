"""Assessors over time: screening of candidates."""

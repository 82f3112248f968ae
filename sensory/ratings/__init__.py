"""Scores and ranks that assessors give: what moved, by how much, and how sure that is."""

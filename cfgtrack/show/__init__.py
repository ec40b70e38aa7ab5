"""Answers as text: tables, JSON, diagrams and the report."""

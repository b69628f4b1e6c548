"""Sheets at true size, parts and power for whoever builds the chamber."""

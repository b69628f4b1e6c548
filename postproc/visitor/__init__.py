"""The chamber as a visitor sees it, still and in motion."""

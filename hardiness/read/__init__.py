"""Readers: files as people and loggers write them -> checked tables and readings, with every fault told at once."""

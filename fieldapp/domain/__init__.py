"""What is true of bones: plain functions over plain values.

Imports nothing of ours but itself, does no I/O and reads no clock.
"""

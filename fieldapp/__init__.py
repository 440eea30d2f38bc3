"""What a tablet needs: record, keep, check, print and send.

The server imports parts of it, so nothing is loaded here.
"""

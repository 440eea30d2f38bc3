"""What the cabin laptop needs: accept, merge, review, print. Never imports the tablet's ui, store or sync."""

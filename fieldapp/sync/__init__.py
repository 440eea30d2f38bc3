"""Enrolment and exchange with the cabin. The transport is passed in."""

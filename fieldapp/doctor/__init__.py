"""What `bonedocket doctor` looks at: the machine, and a tablet's notebook. The cabin's side is in server.doctor.

A check is a small function that gives findings (fieldapp.findings) and alters nothing. What it takes from the system
is an argument where a test is to put something else there. Not here: mending.
"""

"""`python -m fieldapp` is `bonedocket`."""

from fieldapp.cli import main

raise SystemExit(main())

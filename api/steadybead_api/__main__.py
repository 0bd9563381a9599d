"""`python -m steadybead_api` is the `steadybead` command."""

import sys

from steadybead_api.command import main

sys.exit(main())

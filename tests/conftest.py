"""Notebooks are compared on the demonstration job, whichever job somebody has chosen for themselves."""

import os

os.environ["SITELEVELS_JOB"] = "pottery-yard"

"""The profile: the line unrolled along its footage, one painter for page, paper and dig review."""

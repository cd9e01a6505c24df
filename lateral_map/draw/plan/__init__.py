"""The plan: what is drawn, decided once a file as a ``Layer``, for the screen and for paper."""

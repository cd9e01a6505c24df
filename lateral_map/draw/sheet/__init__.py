"""The plan-and-profile sheet: a Report drawn to an exact scale on paper; nothing here saves."""

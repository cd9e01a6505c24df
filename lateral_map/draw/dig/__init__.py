"""The dig review as a page: its layers on the plan, its figures and its tables."""

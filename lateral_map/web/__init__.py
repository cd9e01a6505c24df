"""The entry page: what is typed in the yard goes into the site folder, and the line redraws."""

"""A site folder on disk, read once into a Site."""

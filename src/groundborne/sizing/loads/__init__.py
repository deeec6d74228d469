"""Column loads: read, combined into cases, compared between revisions, held down."""

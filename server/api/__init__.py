"""JSON for tablets, described by OpenAPI."""

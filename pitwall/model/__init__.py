"""The vocabulary: frozen pydantic models that every other package speaks. No behaviour beyond validation."""

"""The proof of arms that were built by other means, by what they do and not by how they were made."""

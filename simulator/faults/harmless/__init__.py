"""What happens on a good day and must trip nothing."""

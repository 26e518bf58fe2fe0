"""The invented station from an empty folder to next year's plan, through the same work as everybody's."""

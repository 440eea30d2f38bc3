"""The specialist's pages."""

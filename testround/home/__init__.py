"""The first page, the mail folder's page, the health check, and the demo."""

"""Version 1 of the API: a module for each subject, its operations over the services and selectors of the pages."""

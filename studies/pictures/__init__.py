"""Mode pictures for print and screen."""

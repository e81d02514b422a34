"""Pages about formats, figures and the model, which come with the package."""

"""What a person writes in a file, on its way to a model: values with units, YAML, plain files, unchanged since the
run began.
"""

"""What judging, mending, comparing and handing over are measured by."""

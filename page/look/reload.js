// Loads the page again while something runs.
setTimeout(() => location.reload(), 2000);

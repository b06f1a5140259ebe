//! Letters as data, then as text, HTML, chart, calendar and JSON.

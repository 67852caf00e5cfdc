//! `sakudana openapi`: the description of the API, for generators of clients.

use super::stop::Stop;
use std::io::Write;

/// Print the OpenAPI document of the API
///
/// The same document that a running server gives at /v1/openapi.json.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  sakudana openapi > openapi.json")]
pub struct OpenapiArguments {}

pub fn run(_: &OpenapiArguments) -> Result<(), Stop> {
    let document = crate::web::server::openapi_json();
    writeln!(std::io::stdout(), "{}", document.trim_end()).map_err(|e| Stop::unusable(format!("stdout: {e}")))
}

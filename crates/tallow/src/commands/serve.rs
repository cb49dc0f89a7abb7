//! `tallow serve`: the shop in a browser.

use std::net::SocketAddr;

use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;
use crate::web::{self, PublicAddress, Reached};

pub(crate) async fn serve(context: &Context, args: &cli::Serve) -> Result<(), Trouble> {
    let address: SocketAddr = args.listen.parse().map_err(|_| {
        Trouble::refused(format!("\"{}\" is not an address with a port", args.listen))
            .help("write it as 127.0.0.1:4630, or [::1]:4630")
    })?;
    let tls = match (&args.certificate, &args.key) {
        (Some(certificate), Some(key)) => Some(web::encrypted_by(certificate, key)?),
        _ => None,
    };
    let public = args.public_address.as_deref().map(PublicAddress::read).transpose()?;
    let ledger = context.open_if_there().await?;
    web::serve(context, ledger, Reached { address, names: args.names.clone(), tls, public }).await
}

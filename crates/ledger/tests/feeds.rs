//! Private links to calendars, on both engines.

mod support;

use support::*;

const DAY: &str = "2026-11-25T08:00:00Z";

#[tokio::test]
async fn a_link_opens_one_keepers_visits_until_it_is_renewed_or_taken_back() {
    for TestShop { ledger, .. } in
        [TestShop::new(Ground::sqlite()).await, TestShop::new(Ground::postgres().await).await]
    {
        let opens = async |secret: &str| ledger.keeper_of_feed(secret).await.unwrap();
        assert_eq!(opens("one").await, None);
        ledger.set_feed("mate", "one", at(DAY)).await.unwrap();
        ledger.set_feed("bosun", "two", at(DAY)).await.unwrap();
        assert_eq!(opens("one").await.as_deref(), Some("mate"));
        ledger.set_feed("mate", "three", at(DAY)).await.unwrap();
        assert_eq!((opens("one").await, opens("three").await.as_deref()), (None, Some("mate")));
        ledger.drop_feed("mate").await.unwrap();
        assert_eq!((opens("three").await, opens("two").await.as_deref()), (None, Some("bosun")));
        assert_eq!(ledger.feeds().await.unwrap(), [("bosun".to_owned(), "two".to_owned())]);
    }
}

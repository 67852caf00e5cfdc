DROP TABLE webhook_dead_letters;
DROP TABLE webhooks;

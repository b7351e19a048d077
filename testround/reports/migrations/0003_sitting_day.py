from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("reports", "0002_submission_content"),
    ]

    operations = [
        migrations.AddField(
            model_name="sitting",
            name="day",
            field=models.DateField(blank=True, null=True),
        ),
    ]

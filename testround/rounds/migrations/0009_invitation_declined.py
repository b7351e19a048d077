from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('rounds', '0008_dates_and_reminders'),
    ]

    operations = [
        migrations.AddField(
            model_name='invitation',
            name='declined_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
    ]
